"""The damage model: what the doses of a part say about its damage, learned from teardowns."""
