"""One estimate of all that is wrong with an instrument in a session, from its readings of tiles.

What lives here knows tiles and readings as arrays. It opens no file, asks nobody, and corrects
nothing that the readings do not insist on.
"""
