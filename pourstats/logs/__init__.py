"""What the crew writes: tables, readers, taps and forms."""
