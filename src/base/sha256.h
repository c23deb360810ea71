/* SHA-256 piece by piece, for files larger than memory. */
#ifndef SM_BASE_SHA256_H
#define SM_BASE_SHA256_H

#include "stopmark/base.h"

struct sm_base__sha256 {
    uint32_t hash[8];
    uint64_t n_bytes;
    unsigned char block[64];
};
void sm_base__sha256_init(struct sm_base__sha256 *sha);
void sm_base__sha256_add(struct sm_base__sha256 *sha, const void *data, size_t n);
void sm_base__sha256_end(struct sm_base__sha256 *sha, char hex[65]);

#endif
