"""Servers that are killed, disks that fill up, phones that lose their network: is anything lost?"""
