"""The API over both apps."""
