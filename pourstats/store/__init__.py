"""Where it is kept and counted: one DuckDB file, its history, and the measures."""
