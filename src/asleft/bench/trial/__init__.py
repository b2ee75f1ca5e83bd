"""One trial from the wish to its outcome: based, begun or resumed, run, estimated, proved."""
