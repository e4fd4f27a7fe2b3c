"""Acts: one function is one thing a person or the clock does. An act never commits."""
