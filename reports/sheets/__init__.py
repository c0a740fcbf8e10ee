"""What hangs by the shelves: the weigh page, the picking sheet and labels, with their templates and styles."""
