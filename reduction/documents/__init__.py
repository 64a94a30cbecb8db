"""What goes in and what comes out, typed: the session, the plan, the result."""
