from cli.start import main

main()
