"""Small widgets that several areas share: buttons, sentences, flows, notices."""
