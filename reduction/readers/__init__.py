"""Read any logger's file: `read_log(path, profile)` gives a `Log`."""
