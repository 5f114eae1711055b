"""A small concrete floor crew's memory that counts."""
