"""The commands: each module adds its arguments and runs; none holds logic."""
