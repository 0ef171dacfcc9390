"""Everything that touches bytes: links, dialogue, decode, sessions, simulated car."""
