"""Over the years: charts, steps, drifts, instruments that move, and what is foretold."""
