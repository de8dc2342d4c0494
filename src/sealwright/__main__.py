from sealwright.cli import main

main()
