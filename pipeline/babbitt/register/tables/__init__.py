"""Tables of the register and the connection to them."""
