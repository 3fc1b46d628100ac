"""Pure rules of a sort: standard library only."""
