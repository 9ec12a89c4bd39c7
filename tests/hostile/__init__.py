"""Text that tries to get out of the place where it is written: `texts` x `fields` in a workspace, and a judge of each
kind of thing that is made of it. `tests/test_hostile_text.py` walks them; a new way out is a few lines there."""
