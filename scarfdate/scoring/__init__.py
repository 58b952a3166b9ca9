"""Did it help? Proper scores on records held out, before against after."""
