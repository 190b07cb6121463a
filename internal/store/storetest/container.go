package storetest

import (
	"context"
	"fmt"
	"os"
	"time"

	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/wait"
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
		// The image starts the server twice, the first time only to set it up.
		testcontainers.WithWaitStrategy(wait.ForLog("database system is ready to accept connections").WithOccurrence(2), wait.ForListeningPort("5432/tcp")),
	)
	if err != nil {
		return nil, err
	}
	endpoint, err := c.PortEndpoint(ctx, "5432/tcp", "")
	if err != nil {
		return nil, err
	}
	return &server{
		admin: fmt.Sprintf("postgres://onetrip:onetrip@%s/onetrip?sslmode=disable", endpoint),
		stop:  func() { _ = testcontainers.TerminateContainer(c) },
	}, nil
}
