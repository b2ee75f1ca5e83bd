"""The bead trial: how wide a wall one bead thick came out."""
