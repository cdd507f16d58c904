"""From where, how and with what chance can a line be set over each union?"""
