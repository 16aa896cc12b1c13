"""From what is asked for to a job: the order, what is to be known of it, the files."""
