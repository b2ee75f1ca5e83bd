"""What the practice machine is made of: drives, heat, filament, and the truth it hides."""
