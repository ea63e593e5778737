"""What the pytest door does once a case file, the fixture or a record is wanted."""
