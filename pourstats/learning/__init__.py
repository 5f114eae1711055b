"""What the crew's own record supports: frames in, estimates with their doubt out."""
