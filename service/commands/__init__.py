"""What each command of `tallytare` does; `service.cli` only reads its arguments."""
