"""The feed trial: how much filament goes in, and from which rate it slips."""
