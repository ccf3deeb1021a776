"""Questions to the register that span records."""
