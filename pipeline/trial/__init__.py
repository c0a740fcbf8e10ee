"""Planning a trial: what the farm's own spread asks for, which soaks to split, and the rows to fill in."""
