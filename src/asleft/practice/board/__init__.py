"""The practice machine's controller: commands heard, executed and answered."""
