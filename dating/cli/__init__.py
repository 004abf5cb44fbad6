"""The command line: one module a command, thin over the Python interface."""
