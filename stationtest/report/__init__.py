"""A record on paper: one self-contained page, made from record.json alone. Nothing is judged or measured again here."""
