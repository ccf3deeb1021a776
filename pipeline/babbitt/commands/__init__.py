"""The commands, a module for each group: they call a stage or the register and print the answer."""
