"""What the machine holds and what it should: kept, previewed, sent, read back, handed over."""
