"""The command line: every act of the program without the window."""
