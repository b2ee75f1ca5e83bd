"""What happens to machines over the years: events and what they undo, history, what is due."""
