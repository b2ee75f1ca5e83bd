"""From executed moves to a printed piece that a caliper can be laid on."""
