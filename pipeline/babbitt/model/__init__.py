"""Values and contracts that stages hand to one another."""
