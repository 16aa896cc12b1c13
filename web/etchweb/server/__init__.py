"""The page's end of every connection: who gets one, how long they may take, what they may send."""
