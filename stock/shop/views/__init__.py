"""What screens read: small frozen rows, one query each; nothing here writes."""
