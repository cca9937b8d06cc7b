"""Reading picture files: what they say of themselves, whether they are whole, what can be shown.

Three steps, each usable alone:

1. ``structure.read_structure`` reads the header only, in plain Python with bounded memory.
2. ``verdicts`` compares the header (and later the pixels) with limits that come in as data.
3. ``guard`` runs ``derive.build_derivatives``, the only step that decodes pixels, in a process
   of its own with limits on pixels, memory and time.

No function here ever writes to the file it reads.
"""
