"""What is shown: the Qt window of Benchguide. Nothing outside this folder imports it, save the command line."""
