"""From a review in work to an edition: what is frozen, what stays private, how it is shown."""
