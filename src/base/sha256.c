/* SHA-256 as FIPS 180-4 (2015) defines it: constants 4.2.2, functions 4.1.2, padding 5.1.1, computation 6.2.
 */
#include "sha256.h"

#include <string.h>

static const uint32_t round_constants[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
};

static uint32_t rotate(uint32_t x, unsigned n)
{
    return (x >> n) | (x << (32 - n));
}

static void expand(uint32_t w[64], const unsigned char block[64])
{
    for (int t = 0; t < 16; t++) {
        const unsigned char *b = block + 4 * t;
        w[t] = (uint32_t)b[0] << 24 | (uint32_t)b[1] << 16 | (uint32_t)b[2] << 8 | b[3];
    }
    for (int t = 16; t < 64; t++) {
        uint32_t s0 = rotate(w[t - 15], 7) ^ rotate(w[t - 15], 18) ^ (w[t - 15] >> 3);
        uint32_t s1 = rotate(w[t - 2], 17) ^ rotate(w[t - 2], 19) ^ (w[t - 2] >> 10);
        w[t] = s1 + w[t - 7] + s0 + w[t - 16];
    }
}

static void take_block(uint32_t hash[8], const unsigned char block[64])
{
    uint32_t w[64];
    uint32_t v[8]; /* a b c d e f g h */
    expand(w, block);
    memcpy(v, hash, sizeof v);
    for (int t = 0; t < 64; t++) {
        uint32_t sum1 = rotate(v[4], 6) ^ rotate(v[4], 11) ^ rotate(v[4], 25);
        uint32_t choice = (v[4] & v[5]) ^ (~v[4] & v[6]);
        uint32_t t1 = v[7] + sum1 + choice + round_constants[t] + w[t];
        uint32_t sum0 = rotate(v[0], 2) ^ rotate(v[0], 13) ^ rotate(v[0], 22);
        uint32_t majority = (v[0] & v[1]) ^ (v[0] & v[2]) ^ (v[1] & v[2]);
        memmove(v + 1, v, 7 * sizeof v[0]);
        v[4] += t1;
        v[0] = t1 + sum0 + majority;
    }
    for (int i = 0; i < 8; i++) {
        hash[i] += v[i];
    }
}

void sm_base__sha256_init(struct sm_base__sha256 *sha)
{
    static const uint32_t first[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                      0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
    memcpy(sha->hash, first, sizeof first);
    sha->n_bytes = 0;
}

void sm_base__sha256_add(struct sm_base__sha256 *sha, const void *data, size_t n)
{
    const unsigned char *from = data;
    while (n) {
        size_t filled = (size_t)(sha->n_bytes % 64);
        size_t take = n < 64 - filled ? n : 64 - filled;
        memcpy(sha->block + filled, from, take);
        sha->n_bytes += take;
        from += take;
        n -= take;
        if (filled + take == 64) {
            take_block(sha->hash, sha->block);
        }
    }
}

void sm_base__sha256_end(struct sm_base__sha256 *sha, char hex[65])
{
    static const char digits[] = "0123456789abcdef";
    static const unsigned char padding[64] = {0x80};
    unsigned char n_bits[8];
    for (int i = 0; i < 8; i++) {
        n_bits[i] = (unsigned char)((sha->n_bytes * 8) >> (56 - 8 * i));
    }
    size_t filled = (size_t)(sha->n_bytes % 64);
    sm_base__sha256_add(sha, padding, filled < 56 ? 56 - filled : 120 - filled);
    sm_base__sha256_add(sha, n_bits, sizeof n_bits);
    for (int i = 0; i < 64; i++) {
        hex[i] = digits[(sha->hash[i / 8] >> (28 - 4 * (i % 8))) & 15];
    }
    hex[64] = '\0';
}

void sm_sha256(const void *data, size_t n, char hex[65])
{
    struct sm_base__sha256 sha;
    sm_base__sha256_init(&sha);
    if (n) {
        sm_base__sha256_add(&sha, data, n);
    }
    sm_base__sha256_end(&sha, hex);
}
