"""The items, one module a family; `maker` registers a function that makes one."""
