"""What is meant: frozen types with units in their names. Standard library only."""
