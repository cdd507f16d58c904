"""How does a bag fly, and how exactly is it thrown?"""
