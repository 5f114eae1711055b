"""How it is shown: texts, tables, pages."""
