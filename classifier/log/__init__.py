"""What was done: quantities, records, weighings, and the ledger that folds them."""
