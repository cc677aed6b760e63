"""Answers questions about statistics, pictures and signatures; see README.md."""

import itertools
import json
import sys

try:
    import cv2
    import numpy as np
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF
    from jwcrypto import jwk, jws
    from jwcrypto.common import JWException
    from scipy import optimize, stats
    from statsmodels.tsa.statespace.kalman_filter import KalmanFilter
except ImportError as e:
    print(e, file=sys.stderr)
    sys.exit(3)


def filters(animals):
    """State and covariance after the last day of each; y is null on days without a weight."""
    return [filtered(q) for q in animals]


def filtered(q):
    y = np.array([np.nan if v is None else v for v in q["y"]], dtype=float)
    n, k = len(y), len(q["start"])
    kf = KalmanFilter(k_endog=1, k_states=k, tolerance=0)
    kf.bind(y.reshape(-1, 1))
    kf["design"] = np.array(q["design"], dtype=float).T.reshape(1, k, n)
    kf["obs_intercept"] = np.array(q["intercept"], dtype=float).reshape(1, n)
    kf["obs_cov"] = np.array(q["noise"], dtype=float).reshape(1, 1, n)
    kf["transition"] = np.array(q["transition"], dtype=float)
    kf["selection"] = np.eye(k)
    kf["state_cov"] = np.diag(q["steps"])
    kf.initialize_known(np.array(q["start"], dtype=float), np.array(q["variance"], dtype=float))
    r = kf.filter()
    return {"state": r.filtered_state[:, -1].tolist(), "variance": r.filtered_state_cov[:, :, -1].tolist()}


def hidden_states(q):
    """Probability of each state after the last day; transition is from row to column."""
    k, total = len(q["start"]), np.zeros(len(q["start"]))
    for path in itertools.product(range(k), repeat=len(q["likelihood"]) + 1):
        p = q["start"][path[0]]
        for day, likelihood in enumerate(q["likelihood"]):
            p *= q["transition"][path[day]][path[day + 1]] * likelihood[path[day + 1]]
        total[path[-1]] += p
    return (total / total.sum()).tolist()


def beta_binomial(q):
    return stats.betabinom.pmf(range(q["n"] + 1), q["n"], q["alpha"], q["beta"]).tolist()


def correlation(q):
    r, n = np.array(q["refused"], dtype=float), np.array(q["offers"], dtype=float)
    mean, total = r.sum() / n.sum(), n.sum()
    seen = (n * (r / n - mean) ** 2).sum()

    def beyond(rho):
        m = 1 / rho - 1
        variance = stats.betabinom.var(n, mean * m, (1 - mean) * m) / n**2
        # E sum n (p - pooled)^2 = sum n Var(p) - N Var(pooled), the mean held
        return (n * variance).sum() - (n**2 * variance).sum() / total - seen

    return {"mean": mean, "rho": optimize.brentq(beyond, 1e-6, 1 - 1e-6, xtol=1e-14)}


def student_weight(q):
    """Precision that an outlier of z standard deviations is left with: -d/dz ln f, by z."""
    freedom, h = q["freedom"], 1e-6
    scale = np.sqrt((freedom - 2) / freedom)  # of unit variance
    z = np.array(q["z"])
    f = lambda v: stats.t.logpdf(v, freedom, scale=scale)
    return (-(f(z + h) - f(z - h)) / (2 * h) / z).tolist()


def homography(q):
    h = [cv2.findHomography(np.array(a, dtype=float), np.array(b, dtype=float))[0] for a, b in zip(q["from"], q["to"])]
    return np.array(h).reshape(len(h), 9).tolist()


def laplacian(q):
    return [cv2.Laplacian(np.array(p, dtype=np.uint8), cv2.CV_64F).var() for p in q["pictures"]]


def circles(q):
    """The circle with the least squared distances from points: middle and radius."""
    out = []
    for p in q["points"]:
        p = np.array(p, dtype=float)
        off = lambda c: np.hypot(p[:, 0] - c[0], p[:, 1] - c[1]) - c[2]
        start = [*p.mean(axis=0), p.std()]
        out.append(optimize.least_squares(off, start, xtol=1e-15, ftol=1e-15, gtol=1e-15).x.tolist())
    return out


def signatures(q):
    """What each record says, or null when no key of the set beside it signed it."""
    sets = [jwk.JWKSet.from_json(json.dumps(s["keys"])) for s in q]
    return [[signed(r, keys) for r in s["records"]] for s, keys in zip(q, sets)]


def signed(record, keys):
    token = jws.JWS()
    token.allowed_algs = ["ES256"]
    try:
        token.deserialize(record)
        token.verify(keys.get_key(token.jose_header["kid"]))
        return token.payload.decode()
    except (JWException, ValueError, KeyError, TypeError, AttributeError):
        return None


def opened(q):
    """The texts of messages to devices, as a browser reads them (RFC 8291, RFC 8188)."""
    return [open_message(*(bytes.fromhex(m[k]) for k in ("private", "auth", "body"))) for m in q]


def open_message(private, auth, body):
    device = ec.derive_private_key(int.from_bytes(private, "big"), ec.SECP256R1())
    salt, size, n = body[:16], int.from_bytes(body[16:20], "big"), body[20]
    sender, record = body[21 : 21 + n], body[21 + n :]
    if len(record) > size:
        raise ValueError("more than one record")
    numbers = device.public_key().public_numbers()
    own = b"\x04" + numbers.x.to_bytes(32, "big") + numbers.y.to_bytes(32, "big")
    shared = device.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender))

    def derive(secret, salt, info, length):
        return HKDF(hashes.SHA256(), length, salt, info).derive(secret)

    secret = derive(shared, auth, b"WebPush: info\0" + own + sender, 32)
    key = derive(secret, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = derive(secret, salt, b"Content-Encoding: nonce\0", 12)
    text = AESGCM(key).decrypt(nonce, record, None).rstrip(b"\0")
    if text[-1:] != b"\2":
        raise ValueError("no mark of the last record")
    return text[:-1].decode()


answers = {
    f.__name__: f
    for f in (filters, hidden_states, beta_binomial, correlation, student_weight, homography, laplacian, circles, signatures, opened)
}
json.dump({name: answers[name](q) for name, q in json.load(sys.stdin).items()}, sys.stdout)
