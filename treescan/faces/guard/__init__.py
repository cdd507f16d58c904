"""What keeps inputs, folders and the terminal whole, whatever happens?"""
