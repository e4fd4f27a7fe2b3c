"""What every act keeps besides its own rows: the day book, due lines, running numbers."""
