"""Jobs that a command or a page asks for; they hand values from stage to stage."""
