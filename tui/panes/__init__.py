"""The panes of the screen; they know only what the engine gives them."""
