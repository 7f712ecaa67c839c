"""The command `brimcast`, and the shell commands ``setup``, ``demo``, ``test``, ``check`` and ``bench``.

In reading order:

- ``cli``: the commands and their options; ``main(argv)`` returns the exit status
- ``failures``: from what went wrong to exit status and words
- ``computing``: a set read, computed and written; watching a file
- ``progress``: bar or lines on the error stream
- ``words``: what is said about a set and its light
- ``writing``: starter sets, the schema, whether a folder can be written
- ``vessel``, ``glassware``, ``contact``: commands on single glasses and on the library of glasses
- ``benchmarks`` and others of that name: speed and error, measured by ``bench``

``cli`` imports nothing heavy; each command imports what it needs.
"""
