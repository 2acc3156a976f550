"""What happens behind the widgets: workers, what is chosen, and what the facts mean for the window."""
