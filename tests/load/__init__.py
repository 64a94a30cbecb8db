"""What the running site bears: visitors at the highest rate, testers at work, a long queue: python -m tests.load."""
