"""Pages and JSON interface: parse and render only."""
