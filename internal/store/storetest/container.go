//go:build !nocontainer

package storetest

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/testcontainers/testcontainers-go"
	tcexec "github.com/testcontainers/testcontainers-go/exec"
)

func startContainer() (*server, error) {
	provider, err := testcontainers.NewDockerProvider()
	if err != nil {
		return nil, err
	}
	_ = provider.Close()
	image := os.Getenv("ONETRIP_TEST_POSTGRES_IMAGE")
	if image == "" {
		image = "postgres:17"
	}
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute) // the image may have to be fetched
	defer cancel()
	c, err := testcontainers.Run(ctx, image,
		testcontainers.WithExposedPorts("5432/tcp"),
		testcontainers.WithEnv(map[string]string{"POSTGRES_PASSWORD": "onetrip", "POSTGRES_USER": "onetrip", "POSTGRES_DB": "onetrip"}),
	)
	if err != nil {
		return nil, err
	}
	endpoint, err := c.PortEndpoint(ctx, "5432/tcp", "")
	if err != nil {
		return nil, err
	}
	dsn := fmt.Sprintf("postgres://onetrip:onetrip@%s/onetrip?sslmode=disable", endpoint)
	if err := untilItAnswers(dsn, nil); err != nil {
		_ = testcontainers.TerminateContainer(c)
		return nil, err
	}
	return &server{
		admin: dsn,
		stop:  func() { _ = testcontainers.TerminateContainer(c) },
		inside: func(input []byte, command []string) ([]byte, error) {
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			defer cancel()
			if input != nil {
				if err := c.CopyToContainer(ctx, input, "/tmp/input", 0o644); err != nil {
					return nil, err
				}
				command = append(command, "--file", "/tmp/input")
			}
			code, out, err := c.Exec(ctx, command, tcexec.Multiplexed())
			if err != nil {
				return nil, err
			}
			text, err := io.ReadAll(out)
			if err == nil && code != 0 {
				err = fmt.Errorf("%s: exit code %d: %s", command[0], code, text)
			}
			return text, err
		},
	}, nil
}
