"""The service: command line, pages, JSON interface and the store behind them."""
