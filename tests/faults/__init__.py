"""What happens when processes are killed, the database goes, the disk fills: python -m tests.faults."""
