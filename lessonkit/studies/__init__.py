"""Studies: thinking about jobs, many benches side by side."""
