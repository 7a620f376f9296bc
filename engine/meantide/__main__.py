"""`python -m meantide`: the same as the command `meantide`."""

from meantide.command import main

if __name__ == "__main__":
    main(prog_name="meantide")
