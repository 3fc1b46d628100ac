"""What a person does, one verb a function."""
