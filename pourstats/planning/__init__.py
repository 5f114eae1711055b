"""What to do next: where record, forecast and models meet."""
