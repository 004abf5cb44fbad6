"""What is valid and hardly meant, as located warnings."""
