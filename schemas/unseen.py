"""Letters that nobody sees: signs without width, marks of direction. A name with one looks like another name."""

from __future__ import annotations


def is_unseen(letter: str) -> bool:
    """Whether this letter has no width and no ink (Unicode's general category Cf)."""
    if letter.isprintable():
        return False
    from unicodedata import category

    return category(letter) == "Cf"


def shown_letter(letter: str) -> str:
    """Return what stands for a letter that is not printed: its number where nobody sees it, else a space."""
    return f"<U+{ord(letter):04X}>" if is_unseen(letter) else " "


def seen(text: str) -> str:
    """Return the text without the letters that nobody sees."""
    return text if text.isprintable() else "".join(letter for letter in text if not is_unseen(letter)).strip()
