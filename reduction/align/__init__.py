"""From files as read to series in SI on one clock."""
