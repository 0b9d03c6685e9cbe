/*
 * Fuzz target for the text of a signature file. One input is signed with a key that nobody else
 * has, so no other text may ever be called good.
 */
#include "fuzz.h"
#include "rimglow/signing.h"

/* Whether data is the signed text, but for the case of its digits. */
static int is_signed_text(const uint8_t *data, size_t size, const char *text)
{
    if (size != strlen(text))
        return 0;
    for (size_t i = 0; i < size; i++) {
        int c = data[i] >= 'A' && data[i] <= 'F' ? data[i] + 32 : data[i];
        int want = text[i] >= 'A' && text[i] <= 'F' ? text[i] + 32 : text[i];
        if (c != want)
            return 0;
    }
    return 1;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const uint8_t seed[32] = {7, 1, 4, 7};
    rg_secret_key *secret;
    rg_digest digest = rg_digest_of("abc", 3);
    char own[RG_SIGNATURE_TEXT];
    if (rg_key_from_seed(seed, &secret, NULL))
        return 0;
    rg_public_key trusted = *rg_key_public(secret), found;
    rg_sign_bag(secret, &digest, own);
    rg_key_free(secret);
    require(rg_verify_bag(own, strlen(own), &digest, &trusted, 1, NULL) == RG_SIGNATURE_GOOD);

    char *text = malloc(size ? size : 1); /* exact size: a read beyond it is seen */
    if (!text)
        return 0;
    if (size)
        memcpy(text, data, size);
    rg_signature_state state = rg_verify_bag(text, size, &digest, &trusted, 1, &found);
    require(state != RG_SIGNATURE_GOOD || is_signed_text(data, size, own));
    require(strlen(found.id) == 0 || strlen(found.id) == RG_KEY_ID - 1);
    require(rg_signature_state_name(state)[0] != '?');
    free(text);
    return 0;
}
