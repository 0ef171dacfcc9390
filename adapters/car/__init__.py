"""The simulated car: an engine with physics behind a simulated adapter."""
