"""`python -m hotfolder`: the same as the command `hotfolder`."""

from hotfolder.cli.main import main

if __name__ == "__main__":
    main()
