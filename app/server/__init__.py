"""The layers before the page: its server, names and origins, the code for the LAN, patience."""
