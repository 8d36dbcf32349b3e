"""The version of this program, as ``pyproject.toml`` has it (a test compares them).

It stands here because asking ``importlib.metadata`` costs a recording process a quarter of its memory.
"""

VERSION = "0.1.0"
