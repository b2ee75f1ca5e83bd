"""The fit trial: how much larger a bore must be drawn than the shaft that is to turn in it."""
