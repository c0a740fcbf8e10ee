"""The farm folder: settings, conventions, units, prices; the template of a new one; the order of its shelves."""
