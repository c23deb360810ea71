/* SHA-256 against the examples of FIPS 180-4's companion "Secure Hash Standard examples" (NIST CSRC) and its
 * test vectors. */
#include <string.h>

#include "sm_test.h"

static void test_sha256__published_examples(void **state)
{
    (void)state;
    static const struct {
        const char *message, *hex;
    } cases[] = {
        {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
        {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
        {"abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmno"
         "pqrstnopqrstu",
         "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char hex[65];
        sm_sha256(cases[i].message, strlen(cases[i].message), hex);
        assert_string_equal(hex, cases[i].hex);
    }
}

static void test_sha256__million_a(void **state)
{
    (void)state;
    char *data = sm_calloc(1000000, 1);
    memset(data, 'a', 1000000);
    char hex[65];
    sm_sha256(data, 1000000, hex);
    assert_string_equal(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    sm_free(data);
}

static void test_sha256__file_as_memory(void **state)
{
    (void)state;
    char dir[256];
    sm_test_dir_make(dir);
    struct sm_text path = {0};
    sm_text_addf(&path, "%s/x", dir);
    struct sm_test_random random = sm_test_seed(256);
    char *data = sm_calloc(200000, 1);
    for (size_t i = 0; i < 200000; i++) {
        data[i] = (char)sm_test_next(&random);
    }
    static const size_t sizes[] = {0, 1, 55, 56, 63, 64, 65, 65535, 65536, 200000};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        char of_memory[65];
        char of_file[65];
        sm_sha256(data, sizes[i], of_memory);
        assert_ok(sm_file_write(path.data, data, sizes[i], NULL), NULL);
        assert_ok(sm_file_sha256(path.data, of_file, NULL), NULL);
        assert_string_equal(of_file, of_memory);
    }
    sm_free(data);
    sm_text_release(&path);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sha256__published_examples),
        cmocka_unit_test(test_sha256__million_a),
        cmocka_unit_test(test_sha256__file_as_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
