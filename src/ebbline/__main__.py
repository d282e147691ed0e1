"""`python -m ebbline`: the command line."""

from ebbline.cli.main import main

if __name__ == "__main__":
    main()
