"""What is said on the practice machine's wire, by which family, and how it goes wrong."""
