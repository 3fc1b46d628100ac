"""The paper field sheet: its table, and reading a filled one."""
