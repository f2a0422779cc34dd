"""Keys: files of a person's own keys, as OpenSSH has them."""


def made(kind, path, passphrase=None):
    """A new key's file, with its .pub beside it."""
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric import ec, ed25519

    key = ed25519.Ed25519PrivateKey.generate()
    if kind != "ed25519":
        key = ec.generate_private_key(ec.SECP256R1())
    lock = s.BestAvailableEncryption(passphrase) if passphrase else s.NoEncryption()
    path.write_bytes(key.private_bytes(s.Encoding.PEM, s.PrivateFormat.OpenSSH, lock))
    path.chmod(0o600)
    public = key.public_key().public_bytes(s.Encoding.OpenSSH, s.PublicFormat.OpenSSH)
    path.with_suffix(".pub").write_bytes(public + b" A. Rigger\n")
    return path
