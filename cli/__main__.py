from cli.start import main

if __name__ == "__main__":  # workers of a forecast import this again, under another name
    main()
