"""The traverse: the carriage against an instrument, without plastic."""
