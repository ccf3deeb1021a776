"""Records of the register: made, amended, withdrawn and read."""
