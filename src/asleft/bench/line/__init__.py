"""Which machine is meant, and its line: found, opened, recognised, logged."""
