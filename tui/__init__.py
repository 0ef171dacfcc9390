"""What a person sees: the screen, the command line, the report."""
